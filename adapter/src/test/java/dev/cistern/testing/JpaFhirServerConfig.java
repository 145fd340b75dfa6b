// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect;
import ca.uhn.fhir.jpa.searchparam.config.NicknameServiceConfig;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import dev.cistern.fhir.FhirJson;
import jakarta.persistence.EntityManagerFactory;
import java.util.Properties;
import javax.sql.DataSource;
import org.h2.jdbcx.JdbcConnectionPool;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;
import org.springframework.transaction.annotation.EnableTransactionManagement;

/** The parts of HAPI's JPA server, wired as its documentation says. */
@Configuration
@EnableTransactionManagement
@Import({
  JpaR4Config.class,
  HapiJpaConfig.class,
  JpaBatch2Config.class,
  Batch2JobsConfig.class,
  SubscriptionChannelConfig.class,
  NicknameServiceConfig.class,
  ThreadPoolFactoryConfig.class
})
class JpaFhirServerConfig {

  @Bean
  FhirContext fhirContext() {
    return FhirJson.context();
  }

  @Bean
  JpaStorageSettings storageSettings() {
    JpaStorageSettings settings = new JpaStorageSettings();
    settings.setSchedulingDisabled(true);
    // A cached search would answer a test with what was there a second ago.
    settings.setReuseCachedSearchResultsForMillis(null);
    return settings;
  }

  @Bean
  PartitionSettings partitionSettings() {
    return new PartitionSettings();
  }

  @Bean
  SubscriptionSettings subscriptionSettings() {
    return new SubscriptionSettings();
  }

  @Bean(destroyMethod = "dispose")
  DataSource dataSource() {
    JdbcConnectionPool pool =
        JdbcConnectionPool.create("jdbc:h2:mem:fhir;DB_CLOSE_DELAY=-1", "sa", "");
    pool.setMaxConnections(40);
    return pool;
  }

  @Bean
  LocalContainerEntityManagerFactoryBean entityManagerFactory(
      ConfigurableListableBeanFactory beans,
      FhirContext context,
      JpaStorageSettings settings,
      DataSource dataSource) {
    LocalContainerEntityManagerFactoryBean factory =
        HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans, context, settings);
    factory.setPersistenceUnitName("fhir");
    factory.setDataSource(dataSource);
    Properties properties = new Properties();
    properties.put("hibernate.dialect", HapiFhirH2Dialect.class.getName());
    properties.put("hibernate.hbm2ddl.auto", "update");
    properties.put("hibernate.search.enabled", "false");
    properties.put("hibernate.jdbc.batch_size", "20");
    factory.setJpaProperties(properties);
    return factory;
  }

  @Bean
  @Primary
  JpaTransactionManager transactionManager(EntityManagerFactory entityManagerFactory) {
    return new JpaTransactionManager(entityManagerFactory);
  }
}
