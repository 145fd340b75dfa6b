// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import com.jcraft.jsch.ChannelSftp;
import com.jcraft.jsch.JSch;
import com.jcraft.jsch.JSchException;
import com.jcraft.jsch.Session;
import com.jcraft.jsch.SftpATTRS;
import com.jcraft.jsch.SftpException;
import dev.cistern.config.Settings;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * A connection to a server's folder, made when it is needed and kept. The server must show the key
 * that the file of known hosts has for it. Two channels: one is read from while the other looks.
 */
final class SftpConnection implements AutoCloseable {
  private static final int CONNECT_MILLIS = 20_000;

  /** A server that says nothing for two of these is gone. */
  private static final int ALIVE_MILLIS = (int) Duration.ofSeconds(10).toMillis();

  private static final int ALIVE_TIMES = 2;

  private final Settings.SftpServer server;
  private final Settings.Sftp source;
  private @Nullable Session session;
  private @Nullable ChannelSftp reading;
  private @Nullable ChannelSftp looking;

  SftpConnection(Settings.Sftp source) {
    this.source = source;
    this.server = source.server();
  }

  /**
   * A regular file of the folder.
   *
   * @param modified in seconds
   */
  record Listed(String name, long size, int modified) {}

  /** Regular files of the folder; links, folders and names that lead elsewhere are left out. */
  List<Listed> list() throws IOException {
    ChannelSftp channel = looking();
    List<Listed> files = new ArrayList<>();
    try {
      channel.ls(
          quoted(source.path()),
          entry -> {
            SftpATTRS attributes = entry.getAttrs();
            if (attributes.isReg() && entry.getFilename().indexOf('/') < 0) {
              files.add(
                  new Listed(entry.getFilename(), attributes.getSize(), attributes.getMTime()));
            }
            return ChannelSftp.LsEntrySelector.CONTINUE;
          });
    } catch (SftpException e) {
      throw failed("the folder cannot be listed", e);
    }
    return files;
  }

  /** How the file looks now; empty where it is gone or no regular file any more. */
  Optional<Listed> look(String name) throws IOException {
    try {
      SftpATTRS attributes = looking().lstat(quoted(at(name)));
      return attributes.isReg()
          ? Optional.of(new Listed(name, attributes.getSize(), attributes.getMTime()))
          : Optional.empty();
    } catch (SftpException e) {
      if (e.id == ChannelSftp.SSH_FX_NO_SUCH_FILE) {
        return Optional.empty();
      }
      throw failed("a file cannot be looked at", e);
    }
  }

  InputStream read(String name) throws IOException {
    try {
      return reading().get(quoted(at(name)));
    } catch (SftpException e) {
      throw failed("a file cannot be read", e);
    }
  }

  /** Moves a file into a subfolder; false where its new name is taken. */
  boolean move(String name, String folder, String newName) throws IOException {
    ChannelSftp channel = looking();
    String target = at(folder) + "/" + newName;
    try {
      if (exists(channel, target)) {
        return false;
      }
      if (!exists(channel, at(folder))) {
        channel.mkdir(at(folder));
      }
      channel.rename(quoted(at(name)), quoted(target));
      return true;
    } catch (SftpException e) {
      throw failed("a file cannot be moved into " + folder, e);
    }
  }

  private static boolean exists(ChannelSftp channel, String path) throws SftpException {
    try {
      channel.lstat(quoted(path));
      return true;
    } catch (SftpException e) {
      if (e.id == ChannelSftp.SSH_FX_NO_SUCH_FILE) {
        return false;
      }
      throw e;
    }
  }

  private String at(String name) {
    return source.path().endsWith("/") ? source.path() + name : source.path() + "/" + name;
  }

  /** The library takes these for patterns. */
  private static String quoted(String path) {
    return path.replaceAll("[\\\\*?]", "\\\\$0");
  }

  private ChannelSftp reading() throws IOException {
    ChannelSftp open = reading;
    if (open == null || !open.isConnected()) {
      open = channel();
      reading = open;
    }
    return open;
  }

  private ChannelSftp looking() throws IOException {
    ChannelSftp open = looking;
    if (open == null || !open.isConnected()) {
      open = channel();
      looking = open;
    }
    return open;
  }

  private ChannelSftp channel() throws IOException {
    Session open = session;
    try {
      if (open == null || !open.isConnected()) {
        close();
        open = connected();
        session = open;
      }
      ChannelSftp channel = (ChannelSftp) open.openChannel("sftp");
      channel.connect(CONNECT_MILLIS);
      return channel;
    } catch (JSchException e) {
      close();
      throw new IOException(SftpWords.of(e), e);
    }
  }

  private Session connected() throws JSchException {
    JSch library = new JSch();
    library.setKnownHosts(server.knownHosts().toString());
    Settings.KeyFile key = server.key();
    if (key != null) {
      String password = key.password().get();
      library.addIdentity(
          key.path().toString(),
          password.isEmpty() ? null : password.getBytes(StandardCharsets.UTF_8));
    }
    Session fresh = library.getSession(server.user(), server.host(), server.port());
    if (key == null) {
      fresh.setPassword(server.password().get().getBytes(StandardCharsets.UTF_8));
    }
    fresh.setConfig("StrictHostKeyChecking", "yes");
    fresh.setConfig(
        "PreferredAuthentications", key == null ? "password,keyboard-interactive" : "publickey");
    fresh.setServerAliveInterval(ALIVE_MILLIS);
    fresh.setServerAliveCountMax(ALIVE_TIMES);
    fresh.setDaemonThread(true);
    fresh.connect(CONNECT_MILLIS);
    return fresh;
  }

  /** Whatever failed, the next look begins with a new connection. */
  private IOException failed(String what, SftpException e) {
    boolean refused =
        e.id == ChannelSftp.SSH_FX_PERMISSION_DENIED || e.id == ChannelSftp.SSH_FX_NO_SUCH_FILE;
    if (!refused) {
      close();
    }
    return new IOException(what + (refused ? ": " + SftpWords.status(e.id) : ""), e);
  }

  @Override
  public void close() {
    Session open = session;
    session = null;
    reading = null;
    looking = null;
    if (open != null) {
      open.disconnect();
    }
  }
}
